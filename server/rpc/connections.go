package rpc

import (
	"net"
	"sync"

	"saggar/server/limit"
)

const (
	// mostConnections and mostConnectionsPerSite bound what is open at once. A caller needs one.
	mostConnections        = 2048
	mostConnectionsPerSite = 256
)

// boundedListener closes connections beyond a number, in all and from one site, before anything is read from them.
type boundedListener struct {
	net.Listener
	most, mostPerSite int

	mu     sync.Mutex
	all    int
	bySite map[string]int
}

func bounded(listener net.Listener) *boundedListener {
	return &boundedListener{
		Listener: listener, most: mostConnections, mostPerSite: mostConnectionsPerSite, bySite: map[string]int{},
	}
}

// Accept waits for the next connection that is within bounds.
func (l *boundedListener) Accept() (net.Conn, error) {
	for {
		connection, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		site := limit.Site(connection.RemoteAddr())
		if l.enter(site) {
			return &boundedConnection{Conn: connection, leave: sync.OnceFunc(func() { l.leave(site) })}, nil
		}
		_ = connection.Close() // nothing was promised to it
	}
}

func (l *boundedListener) enter(site string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all >= l.most || l.bySite[site] >= l.mostPerSite {
		return false
	}
	l.all++
	l.bySite[site]++
	return true
}

func (l *boundedListener) leave(site string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all--
	if l.bySite[site]--; l.bySite[site] == 0 {
		delete(l.bySite, site)
	}
}

type boundedConnection struct {
	net.Conn
	leave func()
}

// Close closes the connection and makes room for another.
func (c *boundedConnection) Close() error {
	c.leave()
	return c.Conn.Close()
}
