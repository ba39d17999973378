"""The box as arrays for the kernels."""
