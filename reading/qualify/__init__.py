"""How well photos with known readings are read: truth in, figures with exact bounds out."""
