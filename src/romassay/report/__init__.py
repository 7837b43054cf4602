"""What people see of an assay: text for a terminal, from values alone."""
