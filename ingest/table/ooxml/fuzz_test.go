package ooxml
