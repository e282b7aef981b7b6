"""Ways texts leave and arrive: base.py is the protocol, setup.py makes those that are set up."""
