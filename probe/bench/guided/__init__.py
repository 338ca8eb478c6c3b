"""The guided run: asks, plugs, takes, judges, and goes on."""
