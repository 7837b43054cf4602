"""What the bytes of an image say about themselves. The room is empty so far: nothing reads code yet."""
