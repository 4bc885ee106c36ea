"""The loop and what surrounds it: devices, guard, socket, settings, commands."""
