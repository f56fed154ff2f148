"""The desk in a browser."""
