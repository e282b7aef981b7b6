"""Trainers, their sign-ins, and programs that act for them."""
