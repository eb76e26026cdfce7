"""Batches, looks and events of a bench: to come."""
