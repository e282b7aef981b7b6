"""Retests, visits and the weekly mail to trainers."""
