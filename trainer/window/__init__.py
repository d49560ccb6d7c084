"""The window: thin views over an attempt. The only package that imports Qt or a plotter."""
