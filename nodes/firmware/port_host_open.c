/* How the port for a desk reaches its adapter: over TCP, or by a serial port or pseudo-terminal. */

#define _POSIX_C_SOURCE 200809L

#include "port_host.h"

#include <errno.h>
#include <fcntl.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <termios.h>

void port_host_give_up(const char *words, const char *about)
{
    fprintf(stderr, "%s: %s\n", words, about);
    exit(2);
}

static int open_host(const char *place, const char *colon)
{
    char host[256];
    struct addrinfo hints;
    struct addrinfo *found = NULL;
    const int at_once = 1;
    int file = -1;
    if ((size_t)(colon - place) >= sizeof host) {
        port_host_give_up("too long", place);
    }
    memcpy(host, place, (size_t)(colon - place));
    host[colon - place] = '\0';
    memset(&hints, 0, sizeof hints);
    hints.ai_socktype = SOCK_STREAM;
    if (getaddrinfo(host, colon + 1, &hints, &found) != 0 || found == NULL) {
        port_host_give_up("there is no such HOST:PORT", place);
    }
    file = socket(found->ai_family, found->ai_socktype, found->ai_protocol);
    if (file < 0 || connect(file, found->ai_addr, found->ai_addrlen) != 0) {
        port_host_give_up(strerror(errno), place);
    }
    freeaddrinfo(found);
    (void)setsockopt(file, IPPROTO_TCP, TCP_NODELAY, &at_once, sizeof at_once);
    return file;
}

static int open_serial(const char *path)
{
    struct termios line;
    const int file = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (file < 0) {
        port_host_give_up(strerror(errno), path);
    }
    if (tcgetattr(file, &line) == 0) {
        line.c_iflag &= (tcflag_t) ~(BRKINT | ICRNL | INLCR | IGNCR | INPCK | ISTRIP | IXON);
        line.c_oflag &= (tcflag_t)~OPOST;
        line.c_lflag &= (tcflag_t) ~(ECHO | ECHONL | ICANON | IEXTEN | ISIG);
        line.c_cflag = (line.c_cflag & (tcflag_t)~CSIZE) | CS8 | CREAD | CLOCAL;
        (void)tcsetattr(file, TCSANOW, &line);
    }
    return file;
}

int port_host_open(const char *place)
{
    const char *colon = strrchr(place, ':');
    const int file = place[0] != '/' && colon != NULL ? open_host(place, colon) : open_serial(place);
    (void)fcntl(file, F_SETFL, O_NONBLOCK);
    return file;
}
