"""The demo: a made-up studio's firings, dropped one by one into a really running service."""
