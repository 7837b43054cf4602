"""The formats: one file each, chosen by content. `load` is the door for files, `read` for bytes in hand."""
