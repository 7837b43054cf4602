"""Record formats, one module each, and what they share: records found in a text, and tracks made of them."""
