"""What if: one mat of a fitted model under other settings, in a closed loop."""
