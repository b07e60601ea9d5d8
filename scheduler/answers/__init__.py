"""What any way in or out needs: entries taken and answered, the board, explanations. Returns values, prints nothing."""
