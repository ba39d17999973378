"""How a state is judged: loss, room and doubts of each guide, and the word that they come to. Writes nothing."""
