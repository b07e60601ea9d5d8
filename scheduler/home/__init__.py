"""The home folder: files, settings, lock, backups, and state between wakes."""
