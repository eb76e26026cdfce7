"""The season report: what a log tells of a season, as one page that prints well.

`story` is what is told, `gather` takes it from a log, the charts draw it as SVG of
our own, and `page` sets it as HTML that asks for nothing from elsewhere. Standard
library only: a board that keeps a bench can make it.
"""
