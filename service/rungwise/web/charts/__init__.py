"""Pictures drawn for pages."""
