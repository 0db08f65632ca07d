"""Pages to print and pictures to look at: HTML and SVG, of what others have worked out."""
