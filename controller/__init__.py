"""The daemon and everything it remembers."""
