"""Pure: snapshots in, findings out. Touches neither the machine nor the disk."""
