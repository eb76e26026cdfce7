"""A thermal model of each root zone, fitted to what a season log tells of a mat.

Pure functions on plain columns: whoever calls them reads the log. Fitting needs
numpy and scipy (the extra `analysis`).
"""
