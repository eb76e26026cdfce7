"""From a fresh board and a box of parts to a bench that can be run.

`answers`, `fist`, `cup`, `placing`, `mat_test`, `said` and `config_text` are pure;
`bench`, `probes`, `heat` and `ending` are the steps, which reach the world through
`stage`; `senses` and `system` are that world.
"""
