"""Whole machine roots with damage of many kinds at once, and bootwatch's commands run on them."""
