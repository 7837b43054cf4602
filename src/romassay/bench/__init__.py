"""The bench: a local web page to look at dockets, correct what was learnt, decide what is in doubt, and export.

Everything it shows comes from the use cases that the command line calls; it decides nothing itself.
"""
