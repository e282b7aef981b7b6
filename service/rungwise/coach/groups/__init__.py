"""Acts over many clients, the trainers' own tags, and saved views of the list."""
