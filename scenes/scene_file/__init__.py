"""What a scene file may say, and what is wrong with one."""
