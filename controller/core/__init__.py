"""The pure core: plan, state and scan give decisions; no I/O, no clock."""
