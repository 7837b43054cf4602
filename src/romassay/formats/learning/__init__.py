"""The layout of a text dump learnt from a sample of its lines, weighed, borne out, or lent by another log."""
