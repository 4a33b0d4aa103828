/*
 * A camera in user space, for tests on machines without one.
 *
 * Loaded with LD_PRELOAD, this library puts one more device into /dev as the
 * process sees it and answers the V4L2 calls on it. The program under test
 * runs unchanged, down to the ioctl. It shows that the program speaks V4L2
 * as nokhwa does; it proves nothing about real drivers.
 *
 *   gcc -shared -fPIC -O2 -o libvcam.so vcam.c -ldl -lpthread
 *
 * Environment:
 *   VCAM_MJPG=file         JPEG pictures, one after the other; offers MJPG
 *   VCAM_YUYV=file         YUYV pictures, one after the other; offers YUYV
 *                          (at least one of the two; both offer both)
 *   VCAM_W, VCAM_H         size of the pictures (1280, 720)
 *   VCAM_FPS               pictures per second (30)
 *   VCAM_NAME              name of the camera ("Virtual Rink Cam")
 *   VCAM_INDEX             n of /dev/videoN (0)
 *   VCAM_STALL_AFTER=n     after n pictures of a stream no more come; the
 *                          device stays
 *   VCAM_UNPLUG_AFTER=n    after n pictures of a stream the device is gone
 *   VCAM_GONE=path         the device is absent while this file exists
 *   VCAM_CORRUPT_EVERY=n   every n-th picture lacks its second half
 *   VCAM_TRACE=1           prints every ioctl
 *
 * Limits: one device, opened once at a time, one size and rate.
 * Struct layouts and ioctl semantics: linux/videodev2.h and the kernel's
 * V4L2 user-space API documentation.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/videodev2.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

/* Declares r_name and lets it point to the function this library hides. */
#define REAL(ret, name, ...)                                                   \
    static ret (*r_##name)(__VA_ARGS__);                                       \
    if (!r_##name)                                                             \
    r_##name = dlsym(RTLD_NEXT, #name)

#define MAX_BUFFERS 32
#define MAX_PICTURES 100000

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

/* The open device. `fd` is the reading end of a pipe that holds one byte per
 * filled buffer, so that poll() on it works as on a real device. */
static struct {
    int fd, write_end, memfd;
    int streaming, gone;
    int buffer_count;
    size_t buffer_size;
    uint8_t *memory;
    struct v4l2_pix_format format;
    unsigned fps, sequence;
    struct v4l2_buffer buffers[MAX_BUFFERS];
    int queued[MAX_BUFFERS], queued_count;
    int filled[MAX_BUFFERS], filled_count;
    pthread_t thread;
} dev = {.fd = -1};

static unsigned width = 1280, height = 720, fps = 30;
static long stall_after, unplug_after, corrupt_every;
static const char *mjpg_path, *yuyv_path, *gone_path;
static uint8_t *mjpg, *yuyv;
static size_t mjpg_size, yuyv_size;
static size_t *mjpg_offsets;
static int mjpg_count;
static char node[32], name[32];

static long env_number(const char *key, long otherwise) {
    const char *text = getenv(key);
    return text ? atol(text) : otherwise;
}

static uint8_t *read_file(const char *path, size_t *size) {
    FILE *file = fopen(path, "rb");
    if (!file) {
        fprintf(stderr, "vcam: cannot open %s\n", path);
        exit(99);
    }
    fseek(file, 0, SEEK_END);
    *size = ftell(file);
    rewind(file);
    uint8_t *data = malloc(*size);
    if (!data || fread(data, 1, *size, file) != *size)
        abort();
    fclose(file);
    return data;
}

__attribute__((constructor)) static void start(void) {
    snprintf(node, sizeof node, "/dev/video%ld", env_number("VCAM_INDEX", 0));
    snprintf(name, sizeof name, "%s", getenv("VCAM_NAME") ?: "Virtual Rink Cam");
    width = env_number("VCAM_W", width);
    height = env_number("VCAM_H", height);
    fps = env_number("VCAM_FPS", fps);
    stall_after = env_number("VCAM_STALL_AFTER", -1);
    unplug_after = env_number("VCAM_UNPLUG_AFTER", -1);
    corrupt_every = env_number("VCAM_CORRUPT_EVERY", 0);
    gone_path = getenv("VCAM_GONE");
    if ((mjpg_path = getenv("VCAM_MJPG"))) {
        mjpg = read_file(mjpg_path, &mjpg_size);
        mjpg_offsets = malloc(sizeof(size_t) * (MAX_PICTURES + 1));
        /* FF D8 FF starts a picture; it cannot occur in coded data. */
        for (size_t i = 0; i + 2 < mjpg_size && mjpg_count < MAX_PICTURES; i++)
            if (mjpg[i] == 0xff && mjpg[i + 1] == 0xd8 && mjpg[i + 2] == 0xff)
                mjpg_offsets[mjpg_count++] = i;
        mjpg_offsets[mjpg_count] = mjpg_size;
    }
    if ((yuyv_path = getenv("VCAM_YUYV")))
        yuyv = read_file(yuyv_path, &yuyv_size);
}

static int enabled(void) { return mjpg_path || yuyv_path; }

/* The node is not there: not listed, cannot be opened. */
static int absent(void) { return gone_path && access(gone_path, F_OK) == 0; }

/* This handle is dead. Stays so until opened again, as after an unplug. */
static int is_gone(void) { return dev.gone || absent(); }

static int fail(int code) {
    errno = code;
    return -1;
}

static void fill_buffer(int i, unsigned number, const struct timespec *now) {
    struct v4l2_buffer *buffer = &dev.buffers[i];
    uint8_t *to = dev.memory + i * dev.buffer_size;
    if (dev.format.pixelformat == V4L2_PIX_FMT_MJPEG) {
        int k = number % mjpg_count;
        buffer->bytesused = mjpg_offsets[k + 1] - mjpg_offsets[k];
        memcpy(to, mjpg + mjpg_offsets[k], buffer->bytesused);
        if (corrupt_every > 0 && number % corrupt_every == corrupt_every - 1)
            memset(to + buffer->bytesused / 2, 0, buffer->bytesused - buffer->bytesused / 2);
    } else {
        size_t size = (size_t)dev.format.width * dev.format.height * 2;
        buffer->bytesused = size;
        memcpy(to, yuyv + (number % (yuyv_size / size)) * size, size);
    }
    buffer->sequence = number;
    buffer->timestamp.tv_sec = now->tv_sec;
    buffer->timestamp.tv_usec = now->tv_nsec / 1000;
    buffer->flags = V4L2_BUF_FLAG_MAPPED | V4L2_BUF_FLAG_DONE | V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC;
    buffer->field = V4L2_FIELD_NONE;
}

/* The sensor: fills one queued buffer per period; with none queued the
 * picture is lost, as in a driver. */
static void *sensor(void *unused) {
    (void)unused;
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    for (;;) {
        t.tv_nsec += 1000000000L / dev.fps;
        if (t.tv_nsec >= 1000000000L) {
            t.tv_nsec -= 1000000000L;
            t.tv_sec++;
        }
        clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, NULL);
        pthread_mutex_lock(&lock);
        if (!dev.streaming) {
            pthread_mutex_unlock(&lock);
            return NULL;
        }
        if ((unplug_after >= 0 && dev.sequence >= unplug_after) || is_gone()) {
            /* The pipe hangs up: poll() returns and the next ioctl fails. */
            dev.gone = 1;
            dev.streaming = 0;
            close(dev.write_end);
            dev.write_end = -1;
            pthread_mutex_unlock(&lock);
            return NULL;
        }
        if (stall_after >= 0 && dev.sequence >= stall_after) {
            pthread_mutex_unlock(&lock);
            continue;
        }
        unsigned number = dev.sequence++;
        if (dev.queued_count) {
            int i = dev.queued[0];
            memmove(dev.queued, dev.queued + 1, --dev.queued_count * sizeof(int));
            fill_buffer(i, number, &t);
            dev.filled[dev.filled_count++] = i;
            char one = 1;
            if (write(dev.write_end, &one, 1) != 1) {
                /* The pipe holds far more than MAX_BUFFERS bytes. */
            }
        }
        pthread_mutex_unlock(&lock);
    }
}

/* The n-th format on offer, 0 beyond the last. */
static unsigned offered(int n) {
    unsigned list[2];
    int count = 0;
    if (mjpg_path)
        list[count++] = V4L2_PIX_FMT_MJPEG;
    if (yuyv_path)
        list[count++] = V4L2_PIX_FMT_YUYV;
    return n < count ? list[n] : 0;
}

static void set_format(unsigned pixelformat) {
    memset(&dev.format, 0, sizeof dev.format);
    dev.format.width = width;
    dev.format.height = height;
    dev.format.pixelformat = pixelformat;
    dev.format.field = V4L2_FIELD_NONE;
    dev.format.sizeimage = width * height * 2;
    dev.format.bytesperline = pixelformat == V4L2_PIX_FMT_YUYV ? width * 2 : 0;
    dev.format.colorspace = V4L2_COLORSPACE_SRGB;
}

static int stop_streaming(void) {
    if (dev.streaming) {
        dev.streaming = 0;
        pthread_mutex_unlock(&lock);
        pthread_join(dev.thread, NULL);
        pthread_mutex_lock(&lock);
    }
    dev.queued_count = dev.filled_count = 0;
    char bytes[64];
    while (dev.fd >= 0 && read(dev.fd, bytes, sizeof bytes) > 0) {
    }
    return 0;
}

static int request_buffers(struct v4l2_requestbuffers *r) {
    if (r->memory != V4L2_MEMORY_MMAP)
        return fail(EINVAL);
    if (dev.streaming)
        return fail(EBUSY);
    if (dev.memory) {
        munmap(dev.memory, dev.buffer_count * dev.buffer_size);
        close(dev.memfd);
        dev.memory = 0;
    }
    dev.buffer_count = 0;
    if (!r->count)
        return 0;
    if (r->count > MAX_BUFFERS)
        r->count = MAX_BUFFERS;
    dev.buffer_size = (dev.format.sizeimage + 4095) & ~4095UL;
    dev.buffer_count = r->count;
    dev.memfd = memfd_create("vcam", MFD_CLOEXEC);
    if (ftruncate(dev.memfd, dev.buffer_count * dev.buffer_size))
        return -1;
    dev.memory = mmap(NULL, dev.buffer_count * dev.buffer_size, PROT_READ | PROT_WRITE, MAP_SHARED, dev.memfd, 0);
    for (int i = 0; i < dev.buffer_count; i++) {
        memset(&dev.buffers[i], 0, sizeof dev.buffers[i]);
        dev.buffers[i].index = i;
        dev.buffers[i].type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
        dev.buffers[i].memory = V4L2_MEMORY_MMAP;
        dev.buffers[i].m.offset = i * dev.buffer_size;
        dev.buffers[i].length = dev.format.sizeimage;
    }
    dev.queued_count = dev.filled_count = 0;
    return 0;
}

static int device_ioctl(unsigned long request, void *arg) {
    if (getenv("VCAM_TRACE"))
        fprintf(stderr, "vcam: ioctl %c nr %lu\n", (char)_IOC_TYPE(request), _IOC_NR(request));
    if (is_gone())
        return fail(ENODEV);
    switch ((unsigned)request) {
    case VIDIOC_QUERYCAP: {
        struct v4l2_capability *c = arg;
        memset(c, 0, sizeof *c);
        strcpy((char *)c->driver, "uvcvideo");
        strcpy((char *)c->card, name);
        strcpy((char *)c->bus_info, "usb-vcam-1");
        c->version = 0x060100;
        c->device_caps = V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_STREAMING | V4L2_CAP_EXT_PIX_FORMAT;
        c->capabilities = c->device_caps | V4L2_CAP_DEVICE_CAPS;
        return 0;
    }
    case VIDIOC_ENUM_FMT: {
        struct v4l2_fmtdesc *f = arg;
        unsigned format = f->type == V4L2_BUF_TYPE_VIDEO_CAPTURE ? offered(f->index) : 0;
        if (!format)
            return fail(EINVAL);
        int jpeg = format == V4L2_PIX_FMT_MJPEG;
        f->pixelformat = format;
        f->flags = jpeg ? V4L2_FMT_FLAG_COMPRESSED : 0;
        strcpy((char *)f->description, jpeg ? "Motion-JPEG" : "YUYV 4:2:2");
        return 0;
    }
    case VIDIOC_ENUM_FRAMESIZES: {
        struct v4l2_frmsizeenum *f = arg;
        if (f->index)
            return fail(EINVAL);
        f->type = V4L2_FRMSIZE_TYPE_DISCRETE;
        f->discrete.width = width;
        f->discrete.height = height;
        return 0;
    }
    case VIDIOC_ENUM_FRAMEINTERVALS: {
        struct v4l2_frmivalenum *f = arg;
        if (f->index || f->width != width)
            return fail(EINVAL);
        f->type = V4L2_FRMIVAL_TYPE_DISCRETE;
        f->discrete.numerator = 1;
        f->discrete.denominator = fps;
        return 0;
    }
    case VIDIOC_G_FMT:
        ((struct v4l2_format *)arg)->fmt.pix = dev.format;
        return 0;
    case VIDIOC_TRY_FMT:
    case VIDIOC_S_FMT: {
        struct v4l2_format *f = arg;
        if (dev.streaming || (dev.buffer_count && (unsigned)request == VIDIOC_S_FMT))
            return fail(EBUSY);
        unsigned format = f->fmt.pix.pixelformat;
        set_format(format == offered(0) || format == offered(1) ? format : offered(0));
        f->fmt.pix = dev.format;
        return 0;
    }
    case VIDIOC_G_PARM:
    case VIDIOC_S_PARM: {
        struct v4l2_streamparm *s = arg;
        s->parm.capture.capability = V4L2_CAP_TIMEPERFRAME;
        s->parm.capture.timeperframe.numerator = 1;
        s->parm.capture.timeperframe.denominator = fps;
        return 0;
    }
    case VIDIOC_ENUMINPUT: {
        struct v4l2_input *i = arg;
        if (i->index)
            return fail(EINVAL);
        i->type = V4L2_INPUT_TYPE_CAMERA;
        strcpy((char *)i->name, "Camera 1");
        return 0;
    }
    case VIDIOC_G_INPUT:
        *(int *)arg = 0;
        return 0;
    case VIDIOC_S_INPUT:
        return 0;
    case VIDIOC_REQBUFS:
        return request_buffers(arg);
    case VIDIOC_QUERYBUF: {
        struct v4l2_buffer *b = arg;
        if (b->index >= dev.buffer_count)
            return fail(EINVAL);
        *b = dev.buffers[b->index];
        return 0;
    }
    case VIDIOC_QBUF: {
        struct v4l2_buffer *b = arg;
        if (b->index >= dev.buffer_count || dev.queued_count >= dev.buffer_count)
            return fail(EINVAL);
        dev.queued[dev.queued_count++] = b->index;
        return 0;
    }
    case VIDIOC_DQBUF: {
        struct v4l2_buffer *b = arg;
        char one;
        if (!dev.filled_count)
            return fail(EAGAIN);
        if (read(dev.fd, &one, 1) != 1) {
            /* One byte per filled buffer is there. */
        }
        int i = dev.filled[0];
        memmove(dev.filled, dev.filled + 1, --dev.filled_count * sizeof(int));
        *b = dev.buffers[i];
        return 0;
    }
    case VIDIOC_STREAMON:
        if (!dev.buffer_count)
            return fail(EINVAL);
        if (!dev.streaming) {
            dev.streaming = 1;
            dev.sequence = 0;
            pthread_create(&dev.thread, NULL, sensor, NULL);
        }
        return 0;
    case VIDIOC_STREAMOFF:
        return stop_streaming();
    default:
        return fail(ENOTTY);
    }
}

static int locked_ioctl(unsigned long request, void *arg) {
    pthread_mutex_lock(&lock);
    int result = device_ioctl(request, arg);
    int code = errno;
    pthread_mutex_unlock(&lock);
    errno = code;
    return result;
}

static int open_device(void) {
    if (absent())
        return fail(ENOENT);
    if (dev.fd >= 0)
        return fail(EBUSY);
    int ends[2];
    if (pipe2(ends, O_CLOEXEC | O_NONBLOCK))
        return -1;
    dev.fd = ends[0];
    dev.write_end = ends[1];
    dev.gone = 0;
    dev.fps = fps;
    set_format(offered(0));
    return dev.fd;
}

/* A file with the camera's name in it, as sysfs has one. */
static int open_name(void) {
    if (absent())
        return fail(ENOENT);
    int fd = memfd_create("name", MFD_CLOEXEC);
    if (write(fd, name, strlen(name)) < 0 || write(fd, "\n", 1) < 0)
        return -1;
    lseek(fd, 0, SEEK_SET);
    return fd;
}

/* Whether the path is one of ours; then *fd is the answer to open(). */
static int hooked_open(const char *path, int *fd) {
    if (!enabled())
        return 0;
    if (!strcmp(path, node)) {
        *fd = open_device();
        return 1;
    }
    if (!strncmp(path, "/sys/class/video4linux/", 23) && strstr(path, node + 5) && strstr(path, "/name")) {
        *fd = open_name();
        return 1;
    }
    return 0;
}

#define HOOK_OPEN(function)                                                    \
    int function(const char *path, int flags, ...) {                           \
        int fd;                                                                \
        if (hooked_open(path, &fd))                                            \
            return fd;                                                         \
        va_list list;                                                          \
        va_start(list, flags);                                                 \
        int mode = va_arg(list, int);                                          \
        va_end(list);                                                          \
        REAL(int, function, const char *, int, ...);                           \
        return r_##function(path, flags, mode);                                \
    }
HOOK_OPEN(open)
HOOK_OPEN(open64)

int close(int fd) {
    REAL(int, close, int);
    if (fd >= 0 && fd == dev.fd) {
        pthread_mutex_lock(&lock);
        stop_streaming();
        if (dev.write_end >= 0)
            r_close(dev.write_end);
        dev.fd = dev.write_end = -1;
        dev.buffer_count = 0;
        pthread_mutex_unlock(&lock);
    }
    return r_close(fd);
}

int ioctl(int fd, unsigned long request, ...) {
    va_list list;
    va_start(list, request);
    void *arg = va_arg(list, void *);
    va_end(list);
    if (fd >= 0 && fd == dev.fd)
        return locked_ioctl(request, arg);
    REAL(int, ioctl, int, unsigned long, ...);
    return r_ioctl(fd, request, arg);
}

/* The v4l crate makes its ioctls through syscall(). */
long syscall(long number, ...) {
    va_list list;
    va_start(list, number);
    long a[6];
    for (int i = 0; i < 6; i++)
        a[i] = va_arg(list, long);
    va_end(list);
    if (number == SYS_ioctl && (int)a[0] >= 0 && (int)a[0] == dev.fd)
        return locked_ioctl(a[1], (void *)a[2]);
    REAL(long, syscall, long, ...);
    return r_syscall(number, a[0], a[1], a[2], a[3], a[4], a[5]);
}

#define HOOK_MMAP(function)                                                    \
    void *function(void *at, size_t size, int prot, int flags, int fd, off_t offset) { \
        REAL(void *, function, void *, size_t, int, int, int, off_t);          \
        if (fd >= 0 && fd == dev.fd)                                           \
            fd = dev.memfd;                                                    \
        return r_##function(at, size, prot, flags, fd, offset);                \
    }
HOOK_MMAP(mmap)
HOOK_MMAP(mmap64)

static DIR *dev_dir;
static int dev_dir_done;
static struct dirent64 dev_entry;

DIR *opendir(const char *path) {
    REAL(DIR *, opendir, const char *);
    DIR *dir = r_opendir(path);
    if (!strcmp(path, "/dev")) {
        dev_dir = dir;
        dev_dir_done = 0;
    }
    return dir;
}

/* After the last real entry of /dev comes ours. */
struct dirent64 *readdir64(DIR *dir) {
    REAL(struct dirent64 *, readdir64, DIR *);
    struct dirent64 *entry = r_readdir64(dir);
    if (!entry && dir == dev_dir && !dev_dir_done && enabled() && !absent()) {
        dev_dir_done = 1;
        dev_entry.d_type = DT_CHR;
        dev_entry.d_ino = 1;
        strcpy(dev_entry.d_name, node + 5);
        return &dev_entry;
    }
    return entry;
}

struct dirent *readdir(DIR *dir) { return (struct dirent *)readdir64(dir); }
