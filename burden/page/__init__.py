"""The local page: a case is entered, decided and followed up in a browser. Loaded by `burden open` alone."""
