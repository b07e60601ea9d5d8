"""Messages: the outbox, the senders of its rows, and what wakes their sender."""
