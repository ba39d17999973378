"""Compiled code of the judge: rays of a beam on its planes, and planes between its legs and the material of parts."""
