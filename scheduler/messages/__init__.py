"""Messages: the outbox, the senders of its rows, and what wakes the one that sends."""
