"""What people saw and did: bench events, batches, looks, moves and outcomes.

Pure: values, the rules that they keep, and the fold from what was written, one
change after the other, to what is so now. Nothing here waits, reads a clock or
knows of files; `controller.record_wire` makes text of it.
"""
