"""A walk at random through everything that can be done at the bench: natively, and in the browser."""
