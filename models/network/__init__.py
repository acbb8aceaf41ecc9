"""The entries of a network file and the rules that hold across them."""
