package logs

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
)

// Original is a file that a log's patterns name, whether or not a reading of
// it was used.
type Original struct {
	Name  string
	SizeB int64
	// SHA256 of the bytes that were read; "" where only the head of a long file
	// was, for none of its columns is named.
	SHA256 string
}

// Originals are the log's files in the order of their names.
func (l *Log) Originals() []Original {
	byName := map[string]*Table{}
	for _, t := range l.all {
		byName[t.Name] = t
	}
	out := make([]Original, 0, len(l.names))
	for _, name := range l.names {
		t := byName[name]
		if twin, ok := l.twins[name]; ok {
			t = byName[twin]
		}
		switch {
		case t == nil: // without any bytes
			none := sha256.Sum256(nil)
			out = append(out, Original{Name: name, SHA256: hex.EncodeToString(none[:])})
		case t.source != nil && t.cols == nil && !t.Tagged:
			out = append(out, Original{Name: name, SizeB: t.source.size})
		default:
			out = append(out, Original{Name: name, SizeB: t.SizeB, SHA256: t.SHA256})
		}
	}
	return out
}

// BundleMark ends every bundle that a report was packed into: the comment of
// the zip archive. A bundle that lies in the farm folder is no log.
const BundleMark = "yardheat-bundle/1"

// ourBundle tells whether a file is a bundle of ours.
func ourBundle(root *os.Root, name string) bool {
	f, err := open(root, name)
	if err != nil {
		return false
	}
	defer func() { _ = f.Close() }() // read only
	info, err := f.Stat()
	if err != nil || info.Size() < int64(len(BundleMark)) {
		return false
	}
	tail := make([]byte, len(BundleMark))
	_, err = f.ReadAt(tail, info.Size()-int64(len(tail)))
	return err == nil && string(tail) == BundleMark
}
