"""The text of a log made plain: what programs on the way put around it is off, and numbers are spelt one way."""
