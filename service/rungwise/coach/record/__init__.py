"""What is known of a client, stored and read back: the ground of all rooms of coach."""
