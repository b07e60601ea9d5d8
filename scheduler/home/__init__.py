"""The home folder: its files read and checked, its settings, its lock, backups, and what is kept between wakes."""
