"""What stands over the loop: the guard, its pipes, the service manager, the second way's proof."""
