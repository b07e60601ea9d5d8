"""The commands: one thin module each, words in and text out. See `main`."""
