"""Compiled kernels: arrays and integers in, arrays and a status out."""
