"""Statistics of trials: to come."""
