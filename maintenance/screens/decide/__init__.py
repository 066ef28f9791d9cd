"""Run the job on, or sharpen first, and what is that worth? Which edges to grind, and what to measure next?"""
