"""Sign-in, sessions, security headers, errors, health."""
