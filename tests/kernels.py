"""Compiles the kernels that tests run on, where that has not been done yet."""

from __future__ import annotations

from simlaunch.launching import compile_ahead

if __name__ == "__main__" and not compile_ahead.is_done():
    compile_ahead.compile_together()
