"""The program language: text to spans and back, special nights."""
