/* What the files of the port for a desk ask of each other: see port_host.c. */

#ifndef PORT_HOST_H
#define PORT_HOST_H

/* One line to standard error, and exit status 2. */
void port_host_give_up(const char *words, const char *about);
/* HOST:PORT, or the path of a serial port or pseudo-terminal: an open file that does not block, or the program's end. */
int port_host_open(const char *place);

#endif /* PORT_HOST_H */
