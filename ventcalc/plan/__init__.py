"""Which hours of the week should cool, how hard, and how far from the cheapest is that at most?"""
