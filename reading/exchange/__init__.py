"""Books as files for other programs, and back."""
