/* The few UEFI 2.10 definitions that the test programs need. Calling convention and pointer width come from
   the compiler's target, so one source serves x64, IA32 and AArch64. Members that nobody calls are `void *`. */
#pragma once

typedef unsigned char UINT8;
typedef unsigned short UINT16;
typedef unsigned int UINT32;
typedef unsigned long long UINT64;
typedef __SIZE_TYPE__ UINTN;
typedef unsigned short CHAR16;
typedef UINT8 BOOLEAN;
typedef UINTN EFI_STATUS;
typedef void *EFI_HANDLE;

#define EFI_ERROR_BIT ((UINTN)1 << (sizeof(UINTN) * 8 - 1))
#define EFI_SUCCESS ((EFI_STATUS)0)
#define EFI_ABORTED (EFI_ERROR_BIT | 21)
#define FAILED(status) (((status) & EFI_ERROR_BIT) != 0)

typedef struct { UINT32 a; UINT16 b, c; UINT8 d[8]; } EFI_GUID;

/* §4.2: the header in front of each table. */
typedef struct { UINT64 signature; UINT32 revision, size, crc, reserved; } EFI_TABLE_HEADER;

/* §7: boot services, up to the last one that is called. */
typedef struct {
    EFI_TABLE_HEADER header;
    void *tpl_and_memory[5];
    EFI_STATUS (*allocate_pool)(int type, UINTN size, void **buffer);
    EFI_STATUS (*free_pool)(void *buffer);
    void *events_and_protocols[9];
    EFI_STATUS (*handle_protocol)(EFI_HANDLE handle, const EFI_GUID *protocol, void **interface);
    void *reserved;
    void *lookup_and_images[12];
    void *opening[6];
    EFI_STATUS (*locate_handle_buffer)(int by, const EFI_GUID *protocol, void *key, UINTN *count, EFI_HANDLE **handles);
    EFI_STATUS (*locate_protocol)(const EFI_GUID *protocol, void *registration, void **interface);
} EFI_BOOT_SERVICES;

#define BY_PROTOCOL 2
#define RESET_SHUTDOWN 2

/* §8: runtime services. */
typedef struct {
    EFI_TABLE_HEADER header;
    void *time_and_memory[6];
    EFI_STATUS (*get_variable)(const CHAR16 *name, const EFI_GUID *vendor, UINT32 *attributes, UINTN *size, void *data);
    void *next_variable_name;
    EFI_STATUS (*set_variable)(const CHAR16 *name, const EFI_GUID *vendor, UINT32 attributes, UINTN size, void *data);
    void *next_high_count;
    void (*reset_system)(int type, EFI_STATUS status, UINTN size, void *data);
} EFI_RUNTIME_SERVICES;

/* §4.3 */
typedef struct {
    EFI_TABLE_HEADER header;
    CHAR16 *vendor;
    UINT32 vendor_revision;
    void *consoles[6];
    EFI_RUNTIME_SERVICES *runtime;
    EFI_BOOT_SERVICES *boot;
} EFI_SYSTEM_TABLE;

/* §9.1 */
typedef struct {
    UINT32 revision;
    EFI_HANDLE parent;
    EFI_SYSTEM_TABLE *system;
    EFI_HANDLE device;
    void *file_path;
    void *reserved;
    UINT32 load_options_size;
    void *load_options;
} EFI_LOADED_IMAGE_PROTOCOL;

/* §10.6.2 */
typedef struct {
    void *node_to_text;
    CHAR16 *(*path_to_text)(const void *path, BOOLEAN display_only, BOOLEAN allow_shortcuts);
} EFI_DEVICE_PATH_TO_TEXT_PROTOCOL;

/* §12.8 */
typedef struct EFI_SERIAL_IO_PROTOCOL {
    UINT32 revision;
    void *settings[4];
    EFI_STATUS (*write)(struct EFI_SERIAL_IO_PROTOCOL *self, UINTN *size, const void *data);
} EFI_SERIAL_IO_PROTOCOL;

/* §13.5 */
typedef struct EFI_FILE_PROTOCOL {
    UINT64 revision;
    EFI_STATUS (*open)(struct EFI_FILE_PROTOCOL *self, struct EFI_FILE_PROTOCOL **file, const CHAR16 *name,
                       UINT64 mode, UINT64 attributes);
    EFI_STATUS (*close)(struct EFI_FILE_PROTOCOL *self);
    void *remove;
    EFI_STATUS (*read)(struct EFI_FILE_PROTOCOL *self, UINTN *size, void *data);
} EFI_FILE_PROTOCOL;

#define FILE_MODE_READ 1

/* §13.4 */
typedef struct EFI_FILE_SYSTEM_PROTOCOL {
    UINT64 revision;
    EFI_STATUS (*open_volume)(struct EFI_FILE_SYSTEM_PROTOCOL *self, EFI_FILE_PROTOCOL **root);
} EFI_FILE_SYSTEM_PROTOCOL;

static const EFI_GUID GLOBAL_VARIABLE =
    {0x8be4df61, 0x93ca, 0x11d2, {0xaa, 0x0d, 0x00, 0xe0, 0x98, 0x03, 0x2b, 0x8c}};
static const EFI_GUID LOADED_IMAGE =
    {0x5b1b31a1, 0x9562, 0x11d2, {0x8e, 0x3f, 0x00, 0xa0, 0xc9, 0x69, 0x72, 0x3b}};
static const EFI_GUID LOADED_IMAGE_PATH =
    {0xbc62157e, 0x3e33, 0x4fec, {0x99, 0x20, 0x2d, 0x3b, 0x36, 0xd7, 0x50, 0xdf}};
static const EFI_GUID PATH_TO_TEXT =
    {0x8b843e20, 0x8132, 0x4852, {0x90, 0xcc, 0x55, 0x1a, 0x4e, 0x4a, 0x7f, 0x1c}};
static const EFI_GUID SERIAL_IO =
    {0xbb25cf6f, 0xf1d4, 0x11d2, {0x9a, 0x0c, 0x00, 0x90, 0x27, 0x3f, 0xc1, 0xfd}};
static const EFI_GUID FILE_SYSTEM =
    {0x964e5b22, 0x6459, 0x11d2, {0x8e, 0x39, 0x00, 0xa0, 0xc9, 0x69, 0x72, 0x3b}};
