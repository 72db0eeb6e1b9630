"""The unit drawing and the limit bar as SVG. Pure."""
