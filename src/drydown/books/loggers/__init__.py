"""What loggers send: kept once, gaps told, and given to the outlook."""
