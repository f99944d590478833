/* The least a walk over a tree can cost on Linux: open every folder, list it with getdents64 and
 * look at every entry with statx, from two threads, and nothing else. No name is judged, nothing
 * is kept. What a walk takes beyond this is its own doing.
 *
 *     cc -O2 -pthread -o floor floor.c && ./floor TREE
 *
 * Prints "ENTRIES FOLDERS BYTES" (the tree itself counts as a folder but not as an entry; bytes
 * are those of plain files). Exit status 1 if anything could not be read.
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

enum { THREADS = 2, BUFFER = 64 << 10 };

struct dirent64 {
	uint64_t ino;
	int64_t off;
	uint16_t reclen;
	uint8_t type;
	char name[];
};

/* A folder: its descriptor, kept open until each of its subfolders has been opened. */
struct parent {
	int fd;
	int refs;
};

/* A folder that waits to be read. */
struct job {
	struct job *next;
	struct parent *parent; /* NULL: name is a path */
	char name[];
};

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static pthread_cond_t more = PTHREAD_COND_INITIALIZER;
static struct job *jobs; /* last in, first out */
static int busy = THREADS;

static uint64_t entries, folders, bytes;
static int failed;

static void *need(void *p)
{
	if (!p) {
		fputs("floor: out of memory\n", stderr);
		exit(2);
	}
	return p;
}

static void release(struct parent *p)
{
	if (__atomic_sub_fetch(&p->refs, 1, __ATOMIC_ACQ_REL) == 0) {
		close(p->fd);
		free(p);
	}
}

static struct job *new_job(struct parent *parent, const char *name)
{
	size_t n = strlen(name) + 1;
	struct job *j = need(malloc(sizeof *j + n));
	j->parent = parent;
	memcpy(j->name, name, n);
	return j;
}

static void push(struct job *first, struct job *last)
{
	pthread_mutex_lock(&lock);
	last->next = jobs;
	jobs = first;
	pthread_cond_broadcast(&more);
	pthread_mutex_unlock(&lock);
}

static struct job *pop(void)
{
	struct job *j;
	pthread_mutex_lock(&lock);
	if (!jobs) {
		busy--;
		while (!jobs && busy > 0)
			pthread_cond_wait(&more, &lock);
		if (!jobs) { /* nobody is left who could find more */
			pthread_cond_broadcast(&more);
			pthread_mutex_unlock(&lock);
			return NULL;
		}
		busy++;
	}
	j = jobs;
	jobs = j->next;
	pthread_mutex_unlock(&lock);
	return j;
}

static void *work(void *unused)
{
	char *buf = need(malloc(BUFFER));
	uint64_t my_entries = 0, my_folders = 0, my_bytes = 0;
	int my_failed = 0;
	struct job *j;

	(void)unused;
	while ((j = pop())) {
		int flags = O_RDONLY | O_DIRECTORY | O_CLOEXEC;
		int fd = j->parent ? openat(j->parent->fd, j->name, flags | O_NOFOLLOW) : open(j->name, flags);
		struct parent *self = NULL;
		struct job *first = NULL, *last = NULL;
		long n;

		if (j->parent)
			release(j->parent);
		free(j);
		if (fd < 0) {
			my_failed = 1;
			continue;
		}
		my_folders++;
		while ((n = syscall(SYS_getdents64, fd, buf, BUFFER)) > 0) {
			for (long at = 0; at < n;) {
				struct dirent64 *d = (struct dirent64 *)(buf + at);
				struct statx st;

				at += d->reclen;
				if (d->name[0] == '.' && (!d->name[1] || (d->name[1] == '.' && !d->name[2])))
					continue;
				my_entries++;
				if (statx(fd, d->name, AT_SYMLINK_NOFOLLOW | AT_NO_AUTOMOUNT,
					  STATX_TYPE | STATX_MODE | STATX_NLINK | STATX_UID | STATX_GID | STATX_MTIME |
						  STATX_INO | STATX_SIZE | STATX_BLOCKS,
					  &st) < 0) {
					my_failed = 1;
					continue;
				}
				if (S_ISREG(st.stx_mode)) {
					my_bytes += st.stx_size;
				} else if (S_ISDIR(st.stx_mode)) {
					if (!self) {
						self = need(malloc(sizeof *self));
						self->fd = fd;
						self->refs = 1;
					}
					self->refs++;
					struct job *sub = new_job(self, d->name);
					sub->next = first;
					if (!first)
						last = sub;
					first = sub;
				}
			}
		}
		if (n < 0)
			my_failed = 1;
		/* All at once, so that refs needs no lock before anybody else knows the folder. */
		if (first)
			push(first, last);
		if (self)
			release(self);
		else
			close(fd);
	}
	free(buf);
	__atomic_add_fetch(&entries, my_entries, __ATOMIC_RELAXED);
	__atomic_add_fetch(&folders, my_folders, __ATOMIC_RELAXED);
	__atomic_add_fetch(&bytes, my_bytes, __ATOMIC_RELAXED);
	if (my_failed)
		__atomic_store_n(&failed, 1, __ATOMIC_RELAXED);
	return NULL;
}

int main(int argc, char **argv)
{
	pthread_t thread[THREADS];
	struct job *root;

	if (argc != 2) {
		fputs("usage: floor TREE\n", stderr);
		return 2;
	}
	root = new_job(NULL, argv[1]);
	push(root, root);
	for (int i = 0; i < THREADS; i++) {
		if (pthread_create(&thread[i], NULL, work, NULL)) {
			fputs("floor: no thread\n", stderr);
			return 2;
		}
	}
	for (int i = 0; i < THREADS; i++)
		pthread_join(thread[i], NULL);
	printf("%llu %llu %llu\n", (unsigned long long)entries, (unsigned long long)folders,
	       (unsigned long long)bytes);
	return failed;
}
