"""What a season log tells without a model."""
