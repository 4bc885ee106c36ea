"""Pure: the direct-current circuit around a bath, its wires, shunt, fuse and supply."""
