"""Parts: their meshes or shapes, their areas, and what weighings taught."""
