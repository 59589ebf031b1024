"""Pictures of machines, ground and walks as SVG and PNG."""
