"""How a state is judged: loss, room and doubts of each guide, the word that they come to, and how that is told. Writes nothing."""
