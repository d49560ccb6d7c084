"""SHAPES: numbers in, what the body and the instruments look like out."""
