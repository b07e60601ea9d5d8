"""Take entries, show the board, explain: what every way in needs. Prints nothing."""
