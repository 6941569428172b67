"""How the sample studio's logs were made: a small physical model of an electric pottery kiln.

Invented data for demonstration. Nothing in the product imports this package, and it imports nothing of the product.
"""
