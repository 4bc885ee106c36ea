"""Runs that were: the list, a report for each, comparison, files, weighings and cost."""
