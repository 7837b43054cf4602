"""The docket: the folder on disk that holds all of one specimen, and what is written into it."""
