"""Marching: cycles until they repeat, books, errors in words, quantities."""
