"""What the office clerk opens in a browser: served on loopback, nothing else to install."""
