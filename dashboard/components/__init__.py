"""What pages share: numbers and sentences in words, status marks, strips, choices, notices, the one graph wrapper."""
