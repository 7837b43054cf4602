"""The fault bench: code that is assembled here, faults put in at the wiring, and what the program makes of the logs."""
