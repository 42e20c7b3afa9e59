"""A population model of monogenean flukes on a group of fish, for the person who treats them."""

__version__ = "0.1.0"
