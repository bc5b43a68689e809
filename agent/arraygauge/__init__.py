"""arraygauge: is this array doing what its drives, its bus and its level allow, and if not, why?"""

__version__ = "0.1.0"
