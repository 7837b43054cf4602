"""Lines of a dump taken under a known layout: in bulk where they are clean, one by one where not, as rows."""
