"""The report of a run: figures, map and one web page, all drawn from finished results.

``figures`` and ``map`` take tables and axes and simulate nothing; ``page`` puts them on one page.
"""
