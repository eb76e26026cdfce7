"""The JSON API: a bench over HTTP, for this machine only."""
