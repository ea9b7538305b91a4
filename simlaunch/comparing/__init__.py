"""Curves compared: what sets them apart, why, and the verdict.

Notes on what was decided, and why.

The verdict with drawn cases: no difference if half of them are level within 0.01 s; quicker or slower if the lower end
of the interval reaches 90 % (common practice), as `odds` has it too; else not sure.
"""
