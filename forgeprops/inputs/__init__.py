"""What a user brings: steel, head, route, shop, limits, settings."""
