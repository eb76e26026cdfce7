"""Searching settings of a mat in the model that its own log was fitted with.

Pure functions: candidates, what a search found of each, which of them nothing
beats, what a person wishes, and what the log allows to be recommended. Whoever
calls them reads logs, prints and writes. Needs the extra `analysis`.
"""
