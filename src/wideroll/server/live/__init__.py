"""What happens in the plant, told to open pages as it happens."""
