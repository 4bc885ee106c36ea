"""Parts that are plated: their areas and how sure those are, from meshes, shapes and weights."""
