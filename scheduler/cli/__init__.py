"""The commands: one thin module each, words in and text out. `main` says what such a module has."""
