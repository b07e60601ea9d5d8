"""The daemon: its loop, the wake, the worker processes and what watches over them."""
