"""The use cases, over ports: what a person does in one go."""
