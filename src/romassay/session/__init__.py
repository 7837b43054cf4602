"""The use cases that every front shares: files in, an assay out, a docket kept."""
